"""What the component tags compute: words and shapes of states, figures with units, the ruler's geometry."""
