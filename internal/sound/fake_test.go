package sound

import (
	"context"
	"sync"
)

func fakeVoice(mu *sync.Mutex, made *[]string) func(context.Context, string, string) ([]int16, int, error) {
	return func(_ context.Context, _, text string) ([]int16, int, error) {
		mu.Lock()
		defer mu.Unlock()
		*made = append(*made, text)
		return make([]int16, 100), 22050, nil
	}
}
