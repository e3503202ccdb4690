"""The files around a run: the three that make a job, sessions, kept runs, forms for new sheets, and locks on all of them."""
