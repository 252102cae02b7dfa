"""Ground floor: what the user declares (an estate folder) and the reference data that ships.

Frozen pydantic models, and the loading and checking of an estate folder. Imports nothing from the floors above.
"""
