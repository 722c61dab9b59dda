package schema_test

import (
	"fmt"

	"nightjar/notify/schema"
)

func Example() {
	entries, err := schema.Files.ReadDir(".")
	for _, e := range entries {
		fmt.Println(e.Name())
	}
	fmt.Println(err)
	// Output:
	// alert.json
	// command.json
	// discovery.json
	// reply.json
	// state.json
	// <nil>
}
