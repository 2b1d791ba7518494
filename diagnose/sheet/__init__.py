"""The measuring sheet: read, doubted where a slip is likely, graded, compared, printed blank."""
