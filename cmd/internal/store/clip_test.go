package store_test

import (
	"testing"

	"plantframe/cmd/internal/store"
)

func TestClipLines(t *testing.T) {
	both(t, func(t *testing.T, r *store.Records) {
		ctx := t.Context()
		for i, who := range []string{"Ann", "Bo", "Ann"} {
			e := entry(string(rune('a'+i)), who, "2026-03-0"+string(rune('1'+i)), 10)
			if _, err := r.Save(ctx, nil, e); err != nil {
				t.Fatal(err)
			}
		}
		all, more, err := r.Clips(ctx, nil, "", 2, 0)
		if err != nil || len(all) != 2 || !more {
			t.Fatal(all, more, err)
		}
		if all[0].Shot != "2026-03-03" || all[0].Hitter != "Ann" || all[0].Swings == 0 || all[0].Analysis == "" {
			t.Errorf("%+v", all[0])
		}
		rest, more, err := r.Clips(ctx, nil, "", 2, 2)
		if err != nil || len(rest) != 1 || more {
			t.Error(rest, more, err)
		}
		own, _, err := r.Clips(ctx, nil, all[0].HitterID, 10, 0)
		if err != nil || len(own) != 2 {
			t.Error(own, err)
		}
		one, ok, err := r.Clip(ctx, nil, all[1].SHA256)
		if err != nil || !ok || one != all[1] {
			t.Error(one, ok, err)
		}
		if _, ok, err := r.Clip(ctx, nil, "nothing"); ok || err != nil {
			t.Error(ok, err)
		}
	})
}
