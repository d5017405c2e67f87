"""Protocol families behind one port: a call goes out, a fetched document or an error comes back."""
