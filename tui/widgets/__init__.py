"""The parts of the bench, one to a file; each shows what it is given and asks for nothing."""
