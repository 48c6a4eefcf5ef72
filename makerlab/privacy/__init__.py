"""What a school keeps of its pupils: the map of it, taking it out, handing it over, and how long it stays."""
