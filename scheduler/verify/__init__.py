"""How good forecasts and decisions were: scores, simulated forecasts, replays of policies over observed weather."""
