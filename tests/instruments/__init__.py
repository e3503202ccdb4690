"""Instruments of the tests: invented ones on pseudo terminals and sockets, each with the manners that bench instruments have."""
