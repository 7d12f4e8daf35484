"""What a prescription comes to: a day and its meals in grams and in energy."""
