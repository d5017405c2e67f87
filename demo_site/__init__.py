"""An invented harbour town, served on loopback: every name, number and date in it is made up."""
