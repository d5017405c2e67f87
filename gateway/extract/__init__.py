"""document -> values -> fields -> records; pure functions over frozen data."""
