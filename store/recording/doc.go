// Package recording reads and writes a run as a text that other programs understand: CSV (RFC 4180, one header row)
// and JSON.
//
// Required columns are time (RFC 3339, or seconds from the start as a plain number) and range_mm or level_mm. The
// optional raw ones are jar_c, dough_c, room_c, room_rh, spread_mm, valid, of, signal, ambient, sigma_mm, statuses (the
// count of each rise.Status in order, parted by spaces, zeros at the end left out), fault, action (one rise.Action in
// JSON), boot and boot_s (which give the order where they stand). Columns derived from the readings follow them in
// what is written, and are left aside when it is read. An empty field is unknown, an unknown column is left aside.
//
// An action stands in a row of its own, before the first reading that was taken after it was told; a row with nothing
// else in it is no reading. What is written and read again is the same, to the steps of rise.Reading.Rounded.
//
// The JSON form is {"run":…,"jar":…,"actions":[…],"readings":[…]}, in the types of package rise.
package recording
