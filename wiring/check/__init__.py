"""Is it sound? The rule check, the circuit solved in each state, what a meter shows, and what a terminal may carry."""
