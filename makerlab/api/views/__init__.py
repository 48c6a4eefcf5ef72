"""Addresses of the interface, one module for each kind of data, and the pages where tokens are made."""
