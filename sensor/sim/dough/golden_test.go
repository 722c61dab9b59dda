package dough_test

// What amd64 gives for the multiple at 7.5 h, the surface at 12 h (mm) and the sample's temperature at 9.2 h (°C).
var (
	goldenMonod = [3]float64{1.223513923234, 96.38230889016, 20.98172742604}
	goldenFilm  = [3]float64{1.334633464004, 109.6856567408, 20.98172742604}
)
