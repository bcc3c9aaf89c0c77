"""The template: the pattern at true size on ordinary sheets."""
