"""The seal: sums of everything that is evidence, signed by the station's key, in formats that anybody can check."""
