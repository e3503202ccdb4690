"""A bench and an operator that are not there: for rehearsals, tests, and answers from a script."""
