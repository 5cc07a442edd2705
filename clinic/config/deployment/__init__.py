"""The files with which a machine runs the program, and when it runs which command."""
