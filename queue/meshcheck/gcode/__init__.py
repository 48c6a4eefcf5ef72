"""Reading a file of machine words that somebody prepared elsewhere: its minutes, its filament, where it moves."""
