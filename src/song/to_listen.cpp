#include "song/to_listen.h"

#include <algorithm>
#include <utility>

#include "base/text.h"
#include "song/plan.h"

namespace sendworthy::song {
namespace {

void add_remark(ListeningState& state, const std::string& words) {
  if (!words.empty()) state.remark += (state.remark.empty() ? "" : "; ") + words;
}

}  // namespace

Result<ListeningState> ToListen::state_now() const {
  auto now = listening_state(state.plan, state.audio, &measured, change ? &*change : nullptr);
  if (now) add_remark(*now, no_change);
  if (now && now->mix != state.mix)
    return fail(ErrorCode::usage, "the plan names another mix by now, \"" + base::for_terminal(now->mix) + "\"; begin again for that one");
  return now;
}

Result<ToListen> to_listen(const std::string& plan_path, Sheet measured, const std::optional<base::FileState>& mix_state, const CheckOptions& options,
                           const CheckHooks& hooks) {
  const auto interrupted = [&] { return hooks.stop != nullptr && hooks.stop->load(); };
  const auto refuse = [] { return fail(ErrorCode::interrupted, "interrupted; nothing was asked"); };
  if (interrupted()) return refuse();
  const auto plan = read_plan(plan_path);
  if (!plan) return tl::unexpected(plan.error());
  const auto file = std::ranges::find(measured.files, plan->mix, &FileSheet::path);
  if (file == measured.files.end()) return fail(ErrorCode::unreadable, "cannot read \"" + base::for_terminal(plan->mix) + "\": it gave no sheet");
  if (file->error) return tl::unexpected(*file->error);
  if (file->audio_digest.empty())
    return fail(ErrorCode::no_audio, "cannot read the sound of \"" + base::for_terminal(plan->mix) + "\": there is no decoder for it here; bounce it as WAV");
  ToListen asked;
  asked.mix = plan->mix;
  asked.mix_state = mix_state;
  asked.cautions = file->cautions;
  auto state = listening_state(plan_path, file->audio_digest);
  if (!state) return tl::unexpected(state.error());
  asked.measured = std::move(measured);
  if (state->pass == 0) {
    auto change = listening_change(plan_path, *state, options, hooks);
    if (change) asked.change = std::move(*change);
    else asked.no_change = "the bounce before could not be held against this one: " + change.error().text;
  }
  if (interrupted()) return refuse();
  state = listening_state(plan_path, state->audio, &asked.measured, asked.change ? &*asked.change : nullptr);
  if (!state) return tl::unexpected(state.error());
  add_remark(*state, asked.no_change);
  asked.state = std::move(*state);
  return asked;
}

int pass_of_next_answer(const ListeningState& state, bool again) { return again || state.pass == 0 ? state.next_pass : state.pass; }

}  // namespace sendworthy::song
