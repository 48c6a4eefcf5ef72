"""Django's SQLite, and a database file that other accounts of the machine cannot read."""
