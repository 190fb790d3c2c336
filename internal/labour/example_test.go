package labour_test

import (
	"fmt"

	"github.com/mouldwright/mouldwright/internal/labour"
	"github.com/mouldwright/mouldwright/internal/method"
	"github.com/mouldwright/mouldwright/internal/ratebook"
)

// LRN-16: twelve casts, the first in 14 h, at 90 %.
func ExampleReckon() {
	cast := &ratebook.Work{Operation: &ratebook.Operation{Name: "Lay up", Per: ratebook.PerCast, SetupHours: 14, LearningRate: 0.9}}
	lines, err := labour.Reckon([]method.Task{{Work: cast, Count: 12, Coats: 1}}, &ratebook.Policies{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(lines[0].Hours)
	fmt.Println(lines[0].Derivation().Words())
	// Output:
	// 131.24 h
	// 14 h set-up; 14 h × 9.374 casts (12 with 90 % learning) = 131.2 h
}
