"""Listeners that speak modem: old programs dial, and talk to whom they dialled."""
