"""Planning a room: calendar, plate layout, schedule, forecast. Pure Python, no Django."""
