"""How do many jobs stand? Their files found, the state of each read from what runs left, and one page over all."""
