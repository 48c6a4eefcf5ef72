"""One module for each group of verbs of lessons; each function is one verb in one transaction."""
