"""The job: every setting declared once, its file, its flags, and what follows from it."""
