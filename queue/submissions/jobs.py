"""Background work of submissions."""
