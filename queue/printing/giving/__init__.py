"""What a lesson would cost the room, before it is given: copies, plates, hours, grams, money, and whether in time."""
