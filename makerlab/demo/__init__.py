"""The invented school: reading its fixtures and filling an empty database with it."""
