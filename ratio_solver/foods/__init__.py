"""What food is made of: nutrients and their arithmetic, the composition table, labels."""
