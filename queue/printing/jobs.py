"""Background work of printing."""
