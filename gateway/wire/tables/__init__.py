"""What each byte of a code of one byte a character means: installed tables, mapping files, and their use."""
