"""Words, films and sheets erased; their files swept away; whether the record is whole."""
