"""A hidden fault to find: the vehicle that answers, the score against the plan."""
