"""Classes at work: codes and pictures to sign in with, who is in a class, teams in words, dates of a class."""
