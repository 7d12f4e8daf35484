"""The bundled composition table, made from a food composition release and the project's own lists."""
