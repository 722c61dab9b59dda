package notifytest_test

import (
	"fmt"

	"nightjar/notify/notifytest"
	"nightjar/rise"
)

func Example() {
	o := notifytest.Outbox{Routes: []string{"mqtt", "phone"}}
	a := notifytest.Alert("main", 1)
	_ = o.Issue(a)
	_ = o.Settle("mqtt", a.ID, rise.DeliveryDelivered, 1, "")
	fmt.Println(o.Delivery("mqtt", a.ID).State, o.Delivery("phone", a.ID).State)
	// Output: delivered pending
}
