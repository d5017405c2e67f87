"""A folder's entries -> the records of LIST (CONTRACT section 3)."""

from gateway.extract.folders.listing import Folder, Order, list_records
from gateway.extract.folders.names import shown_name
from gateway.extract.folders.short import short_names

__all__ = ["Folder", "Order", "list_records", "short_names", "shown_name"]
