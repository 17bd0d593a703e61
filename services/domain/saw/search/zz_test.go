package search_test
import ("testing";"context";"time";"math/rand/v2";"seamshare.example/services/domain/saw/search";"seamshare.example/services/domain/saw/search/searchtest")
func TestZZ(t *testing.T){
 for _,task:=range searchtest.Pieces(){
  begin:=time.Now()
  s,err:=search.Suggest(context.Background(),task,rand.New(rand.NewPCG(1,1)),3000,nil)
  if err!=nil { t.Error(task.Study.Name,err); continue}
  t.Log(task.Study.Name, s.Best, s.Bound, s.Steps, time.Since(begin).Milliseconds(),"ms")
  for _,o:=range s.Offers { t.Log("   ",o.Kind, o.Result.Money.Expected, o.Markets[0].Money.Expected,o.Markets[0].Best,o.Markets[1].Money.Expected,o.Markets[1].Best, o.Result.Infeasible) }
 }
}
