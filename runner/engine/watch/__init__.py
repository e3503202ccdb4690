"""The current watcher: what a falling or rising current means. ``watcher`` has the rules."""
