"""The page's sections: what each shows, a file and a template of the same name each."""
