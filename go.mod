module plantframe

go 1.26
