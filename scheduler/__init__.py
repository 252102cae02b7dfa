"""The brain: agronomy, weather arithmetic, decisions, plans, messages and the rules of what is due.

Nothing in here opens a socket, a file or a database, and nothing asks the time: `now` and data are arguments.
"""
