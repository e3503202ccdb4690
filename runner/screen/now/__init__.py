"""What a person is to do now and what is switched on, made of the orders that the run gives."""
