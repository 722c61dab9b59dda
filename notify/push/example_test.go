package push_test

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"

	"nightjar/notify/push"
	"nightjar/rise"
)

func Example() {
	service := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		fmt.Printf("%s\n%s\n", r.Header.Get("Title"), b)
	}))
	defer service.Close()

	phone, err := push.New(push.Options{Name: "phone", URL: service.URL + "/dough"})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer phone.Close()
	err = phone.Send(context.Background(), rise.Alert{
		ID: "attic-5f0c11de-1", Kind: rise.AlertReady, Level: rise.LevelWakes, Station: "main", Text: "Rye has doubled.", N: 1,
	})
	fmt.Println(err)
	// Output:
	// Ready: main
	// Rye has doubled.
	// <nil>
}
