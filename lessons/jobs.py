"""Background work of lessons."""
