"""The benchmark of a morning, and its plain reference."""
