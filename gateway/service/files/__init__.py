"""Documents and folders of far servers: file wishes -> what was listed, read, taken in or changed."""
