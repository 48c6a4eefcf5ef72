"""The district's page: all schools of an installation in figures, and the two things that are done there. It looks over
the wall between schools by counting and by nothing else."""
