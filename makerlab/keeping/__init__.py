"""Backups of the database and the stored files, their proof and their return, and the way to a new release."""
