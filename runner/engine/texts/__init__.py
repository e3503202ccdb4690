"""What the engine says to people: titles of steps, and the prompts and results of steps that a person carries out."""
