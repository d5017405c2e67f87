"""What was asked of adapters for documents and folders, taken down and given again."""
