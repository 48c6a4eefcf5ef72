"""What a lab day needs of statistics, graphs and physics. Pure Python: no Django, no database."""
