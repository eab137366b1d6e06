"""What every desktop program has around its work: menus, files, status, help, the way it looks."""
