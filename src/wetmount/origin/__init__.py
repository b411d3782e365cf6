"""Where it came from: the fish room in time, exposures, chains, and who infected whom."""
