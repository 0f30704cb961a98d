"""How much water a job lifts, hour by hour: between the system and the documents, off the check path."""
