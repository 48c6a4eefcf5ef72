"""Pages of the room: today, queue, room plan, bench, plates, spools."""
