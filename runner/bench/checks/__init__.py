"""The check of the instruments: who is there, what they say, and what they are like in fact.

in: an open bench · out: what each instrument answered, how quickly and how finely · never: sets or switches anything
"""
