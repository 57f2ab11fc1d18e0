package tax

// Book holds the dated rates and taxabilities. It never changes; With makes a new one.
type Book struct{}

// Shipped returns the book that comes with the program, read once.
func Shipped() Book { return Book{} }
