"""When things are due, and the rules of the outbox."""
