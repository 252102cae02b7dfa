"""Everything that touches the outside: feeds, store, notification, command line, daemon.

Implements the protocols that scheduler.ports declares; may import scheduler and config, never the other way round.
"""
