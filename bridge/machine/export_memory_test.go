package machine

import (
	"fmt"
	"reflect"
	"sort"
	"strings"
	"unsafe"
)

// shareable are the types of which copies of a state may share the memory: nothing ever writes to it in place. A new
// field with memory of its own does not belong here unless that is true of it.
var shareable = map[string]bool{
	"*machine.Site": true, "*machine.index": true, "*machine.Channel": true, "*machine.Container": true, "*machine.Node": true, "*machine.Probe": true,
	"*planner.System": true, "*time.Location": true, "map[string]float64": true,
	"[]safety.Booking": true, "[]metering.Trial": true, "[]estimate.Rise": true, "[]estimate.Level": true, "[]estimate.late": true,
	"*safety.Microlitres": true, "*float64": true, "*time.Time": true, "*machine.provenRow": true, "*machine.said": true, "*machine.BalanceView": true,
	"*advice.Cap": true, "[]safety.Code": true, "*advice.Trend": true, "advice.Log": true, "[]advice.Advice": true, "[]safety.Block": true,
	"interface {}": true, "json.RawMessage": true,
}

// InputSize is what a dose takes that the estimator was told of, bytes.
const InputSize = unsafe.Sizeof(input{})

// Shared names what two states share that may be written to.
func Shared(a, b *State) []string {
	found := map[string]bool{}
	share(reflect.ValueOf(a).Elem(), reflect.ValueOf(b).Elem(), "state", found)
	var out []string
	for path := range found {
		out = append(out, path)
	}
	sort.Strings(out)
	return out
}

func share(a, b reflect.Value, path string, found map[string]bool) {
	if shareable[a.Type().String()] {
		return
	}
	switch a.Kind() {
	case reflect.Pointer:
		if a.IsNil() || b.IsNil() {
			return
		}
		if a.Pointer() == b.Pointer() {
			found[path+" "+a.Type().String()] = true
			return
		}
		share(a.Elem(), b.Elem(), path, found)
	case reflect.Slice:
		if a.Cap() > 0 && a.Pointer() == b.Pointer() {
			found[path+" "+a.Type().String()] = true
			return
		}
		for i := range min(a.Len(), b.Len()) {
			share(a.Index(i), b.Index(i), path+"[]", found)
		}
	case reflect.Map:
		if !a.IsNil() && a.Pointer() == b.Pointer() {
			found[path+" "+a.Type().String()] = true
		}
	case reflect.Struct:
		for i := range a.NumField() {
			share(a.Field(i), b.Field(i), path+"."+a.Type().Field(i).Name, found)
		}
	}
}

// Whole writes down a state to the last field, but for what belongs to the site and to memory that is used again.
func Whole(s *State) string {
	var b strings.Builder
	whole(&b, reflect.ValueOf(s).Elem())
	return b.String()
}

func whole(b *strings.Builder, v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		switch {
		case v.IsNil():
			b.WriteString("nil ")
		case strings.HasPrefix(v.Type().String(), "*time.Loc"), v.Type() == reflect.TypeFor[*Site](), v.Type() == reflect.TypeFor[*index]():
			b.WriteString("config ")
		default:
			whole(b, v.Elem())
		}
	case reflect.Struct:
		if v.CanInterface() || v.Type().String() != "planner.Input" {
			for i := range v.NumField() {
				whole(b, v.Field(i))
			}
		}
	case reflect.Slice, reflect.Array:
		fmt.Fprintf(b, "%d[", v.Len())
		for i := range v.Len() {
			whole(b, v.Index(i))
		}
		b.WriteString("]")
	case reflect.Map:
		keys := v.MapKeys()
		sort.Slice(keys, func(i, j int) bool { return fmt.Sprint(keys[i]) < fmt.Sprint(keys[j]) })
		for _, k := range keys {
			fmt.Fprintf(b, "%v:", k)
			whole(b, v.MapIndex(k))
		}
	case reflect.Interface:
		fmt.Fprintf(b, "%v ", v)
	default:
		fmt.Fprintf(b, "%v ", v)
	}
}
