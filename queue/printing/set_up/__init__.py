"""What an administrator says once: the room, its printers, its hours; and how far the school is set up."""
