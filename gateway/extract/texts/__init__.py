"""A document of any kind -> its text, in lines as wide as a client's machine takes."""

from gateway.extract.texts.document import TextSheet, text_records

__all__ = ["TextSheet", "text_records"]
