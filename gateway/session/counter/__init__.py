"""A place's counter: a text service of the gateway's own, at which documents are fetched and stored; pure."""
