#include "desk/listening_pass.h"

#include <sendworthy/catalog.h>

#include <algorithm>
#include <utility>

#include "base/table.h"
#include "base/text.h"
#include "desk/page_words.h"
#include "desk/within.h"
#include "sheet/phrases.h"
#include "song/status_json.h"

namespace sendworthy::desk {
namespace {

constexpr std::string_view kLookAgain = "; load the page again to go on";

Json texts(const std::vector<std::string>& lines) {
  Json json = Json::array();
  for (const auto& line : lines) json.push_back(base::clean_utf8(line));
  return json;
}

Json place_json(const ListeningPlace& place) {
  Json json{{"start_s", place.start_s}};
  if (place.end_s) json["end_s"] = *place.end_s;
  json["what"] = base::clean_utf8(place.what);
  return json;
}

Json finding_json(const Finding& finding) {
  Json json;
  json["id"] = finding.rule;
  json["status"] = to_string(finding.status);
  json["headline"] = base::clean_utf8(sheet::headline(finding, catalog()));
  json["why"] = base::clean_utf8(finding.why);
  json["remedy"] = base::clean_utf8(on_the_page(finding.remedy));
  json["where"] = Json::array();
  for (const auto& where : finding.where)
    json["where"].push_back({{"start_s", where.start_s}, {"end_s", where.end_s}, {"file", base::clean_utf8(where.file)}, {"note", base::clean_utf8(where.note)}});
  return json;
}

UploadRefusal refusal_of(const Error& error) {
  if (error.code == ErrorCode::usage) return {409, "changed", error.text};
  if (error.code == ErrorCode::output) return {507, "not_written", error.text};
  return {409, std::string(to_string(error.code)), to_string(error)};
}

const ListeningQuestion* find(const ListeningState& state, const std::string& id) {
  const auto found = std::ranges::find(state.questions, id, &ListeningQuestion::id);
  return found == state.questions.end() ? nullptr : &*found;
}

bool same_question(const ListeningQuestion& a, const ListeningQuestion& b) {
  return a.text == b.text && a.heard == b.heard && a.section == b.section && a.stem == b.stem;
}

}  // namespace

Json ListeningPass::told() const {
  // What the command prints, and what the terminal shows.
  auto json = Json::parse(song::status_json(told_));
  json["next_pass"] = told_.next_pass;
  for (const auto& [key, text] : {std::pair{"title", &told_.title}, {"artist", &told_.artist}, {"feeling", &told_.feeling}, {"approach", &told_.approach}})
    json[key] = base::clean_utf8(*text);
  for (std::size_t i = 0; i < told_.questions.size(); ++i) {
    const auto& one = told_.questions[i];
    auto& question = json["questions"][i];
    question["how"] = base::clean_utf8(one.how);
    question["heard"] = one.heard;
    question["section"] = base::clean_utf8(one.section);
    question["stem"] = base::clean_utf8(one.stem);
    question["places"] = Json::array();
    for (const auto& place : one.places) question["places"].push_back(place_json(place));
    question["moved"] = texts(one.moved);
    question["numbers"] = texts(one.numbers);
    question["findings"] = Json::array();
    for (const auto& finding : asked_.measured.findings) {
      if (finding.ruleset == "plan" && std::ranges::find(one.findings, finding.rule) != one.findings.end()) question["findings"].push_back(finding_json(finding));
    }
  }
  json["moves"] = Json::array();
  for (const auto& one : told_.moves) json["moves"].push_back({{"section", base::clean_utf8(one.section)}, {"words", texts(one.words)}});
  auto unasked = told_.unasked;
  for (auto& line : unasked) line = on_the_page(std::move(line));
  json["unasked"] = texts(unasked);
  json["before_pass"] = told_.before_pass;
  json["change"] = nullptr;
  if (asked_.change) json["change"] = {{"kind", to_string(asked_.change->pair.kind)}, {"summary", base::clean_utf8(asked_.change->summary)}};
  json["cautions"] = Json::array();
  for (const auto& caution : asked_.cautions) json["cautions"].push_back({{"text", base::clean_utf8(caution.text)}, {"source", base::clean_utf8(caution.source)}});
  json["mix_part"] = mix_part_;
  json["mix_changed"] = !asked_.mix_is_the_same();
  return json;
}

/// Read anew, if all of it still lies where the page may read.
tl::expected<ListeningState, UploadRefusal> ListeningPass::now() const {
  const auto plan = plan_within(folder_, told_.plan);
  if (!plan && plan.error().code == ErrorCode::unreadable) return tl::unexpected(UploadRefusal{403, "unreadable", plan.error().text});
  auto state = asked_.state_now();
  if (!state) return tl::unexpected(refusal_of(state.error()));
  return std::move(*state);
}

tl::expected<Json, UploadRefusal> ListeningPass::tell() {
  const std::lock_guard lock(mutex_);
  auto state = now();
  if (!state) return tl::unexpected(std::move(state.error()));
  told_ = std::move(*state);
  return told();
}

tl::expected<Json, UploadRefusal> ListeningPass::answer(const AnswerWish& wish, const std::string& date) {
  const std::lock_guard lock(mutex_);
  const auto refuse = [](int status, std::string code, std::string text) { return tl::unexpected(UploadRefusal{status, std::move(code), std::move(text)}); };
  if (base::is_blank(wish.by)) return refuse(400, "by", "who listened stands with each answer; give your initials as \"by\"");
  auto state = now();
  if (!state) return tl::unexpected(std::move(state.error()));
  if (state->pass == 0 && wish.pass.value_or(told_.pass) > 0)
    return refuse(409, "other_pass",
                  "the passes file \"" + base::for_terminal(passes_path(told_.plan)) + "\" holds no pass on this mix any more: somebody emptied, moved or replaced it, and this answer was not kept; put the file back, or load the page again to begin a new pass");
  if (state->pass != wish.pass.value_or(told_.pass))
    return refuse(409, "other_pass", "pass " + std::to_string(state->pass) + " has been begun elsewhere, and this answer was not kept" + std::string(kLookAgain) + " with that one");
  const auto *const asked = find(*state, wish.question), *const shown = find(told_, wish.question);
  if (asked == nullptr && shown == nullptr) return refuse(404, "no_question", "the plan asks nothing of this name");
  if (asked == nullptr || shown == nullptr || !same_question(*asked, *shown))
    return refuse(409, "changed", "the plan has changed while it was asked, and this answer was not kept" + std::string(kLookAgain));
  if (!asked_.mix_is_the_same())
    return refuse(409, "changed", "the mix was written to while you listened, and this answer was not kept: those before it count for the bounce that was measured; check the plan again");
  ListeningAnswer answer;
  answer.pass = song::pass_of_next_answer(*state, wish.again);
  answer.date = date;
  answer.by = wish.by;
  answer.answer = wish.answer;
  answer.note = wish.note;
  answer.played_s = wish.played_s;
  if (const auto kept = record_answer(*state, wish.question, answer, &asked_.measured); !kept) {
    if (kept.error().code == ErrorCode::usage) return refuse(400, "answer", kept.error().text);
    return tl::unexpected(refusal_of(kept.error()));
  }
  state = now();
  if (!state) return tl::unexpected(std::move(state.error()));
  told_ = std::move(*state);
  return told();
}

}  // namespace sendworthy::desk
