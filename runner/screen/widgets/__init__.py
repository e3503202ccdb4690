"""The parts of the screen. Each carries its own look and says what it shows; none knows an instrument."""
