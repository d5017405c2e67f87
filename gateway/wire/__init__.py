"""bytes <-> lines, requests, replies, codes and settings; pure."""
