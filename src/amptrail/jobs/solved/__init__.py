"""The vehicle as the use cases see it: solved states, points and how they are reached, readings of them."""
