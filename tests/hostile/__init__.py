"""Files as nobody should send them: mutated ones by the thousand, and texts that try to be something else."""
