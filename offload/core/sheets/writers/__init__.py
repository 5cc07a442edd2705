"""Writers: a neutral drawing to the bytes of a file. Equal drawings give equal bytes."""
