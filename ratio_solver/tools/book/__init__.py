"""Cards of many dishes in one folder, with a page that leads to them and a book to print."""
