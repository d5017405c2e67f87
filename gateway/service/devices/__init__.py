"""Serial devices that the gateway opens itself."""
