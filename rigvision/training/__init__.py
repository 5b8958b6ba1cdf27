"""Records into review, quiz, practice and studies. Nothing in here changes a record."""
