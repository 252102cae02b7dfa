"""The invented estate and forecasts of `ligule demo`."""
