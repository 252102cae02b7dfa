"""Alembic migrations, shipped with the package and run in the process (no alembic.ini)."""
