"""Texts of the catalogue file that stand for something else: secrets, certificates, charsets, zones."""
