#include "desk/sound_api.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <limits>
#include <optional>
#include <utility>

#include <fmt/format.h>

#include "base/text.h"
#include "desk/api.h"
#include "desk/hearing.h"
#include "desk/wave_head.h"

namespace sendworthy::desk {
namespace {

constexpr int kMostColumns = 2000;
constexpr double kBeyondEndS = 0.5, kTwoClocksS = 0.01;  // of the page and of the file
constexpr std::int64_t kWaitedForBytes = std::int64_t{4} << 20;
constexpr std::int64_t kSentAtOnceBytes = std::int64_t{1} << 18;
constexpr std::int64_t kSampleBytes = sizeof(float);

std::string_view name_of(audio::Speaker speaker) {
  constexpr std::array<std::string_view, 11> kNames{"unknown", "left", "right", "centre", "lfe", "left-surround", "right-surround", "left-back", "right-back", "centre-back", "other"};
  return kNames[static_cast<std::size_t>(speaker)];
}

std::optional<std::int64_t> whole_number(std::string_view text) {
  constexpr std::size_t kMostDigits = 15;
  if (text.empty() || text.size() > kMostDigits || text.find_first_not_of("0123456789") != text.npos) return std::nullopt;
  std::int64_t number = 0;
  for (const char c : text) number = 10 * number + (c - '0');
  return number;
}

double rounded(double value, double steps) { return std::round(value * steps) / steps; }

tl::unexpected<Answer> no_part() { return tl::unexpected(refusal(404, "no_check", "the check has no such file (any more); load the page again")); }

tl::expected<SoundSource, Answer> source_in(const Target& target) {
  if (!target.query.contains("check")) return SoundSource{path_in(target), {}, 0};
  const auto part = whole_number(target.of("part"));
  if (!part || *part == 0) return no_part();
  return SoundSource{{}, std::string(target.of("check")), static_cast<std::size_t>(*part)};
}

std::string key_of(const SoundSource& source) { return source.part > 0 ? fmt::format("{}\n{}", source.part, source.check) : "0\n" + source.path; }

/// Counts who is waiting, so that the server keeps threads for everything else.
class Asking {
 public:
  explicit Asking(std::atomic<int>& count) : count_(count), many_(count.fetch_add(1) >= kMostAsking) {}
  Asking(const Asking&) = delete;
  Asking& operator=(const Asking&) = delete;
  ~Asking() { --count_; }
  [[nodiscard]] bool too_many() const { return many_; }

 private:
  std::atomic<int>& count_;
  const bool many_;
};

/// A number of an object, from `lowest` to `highest`.
std::optional<double> number_in(const Json& json, std::string_view name, double lowest, double highest) {
  const auto found = json.find(name);
  if (found == json.end() || !found->is_number()) return std::nullopt;
  const auto value = found->get<double>();
  return value >= lowest && value <= highest ? std::optional(value) : std::nullopt;
}

std::optional<SoundSource> source_in(const Json& json) {
  if (!json.is_object()) return std::nullopt;
  const auto text = [&](std::string_view name) {
    const auto found = json.find(name);
    return found != json.end() && found->is_string() ? std::optional(found->get<std::string>()) : std::nullopt;
  };
  if (auto check = text("check")) {
    const auto part = number_in(json, "part", 1, 1e6);
    if (!part) return std::nullopt;
    return SoundSource{{}, std::move(*check), static_cast<std::size_t>(*part)};
  }
  if (const auto id = text("id")) return SoundSource{base::percent_decoded(*id), {}, 0};
  if (auto path = text("path")) return SoundSource{std::move(*path), {}, 0};
  return std::nullopt;
}

}  // namespace

Result<PlayedWish> read_played(std::string_view body) {
  constexpr double kLongestS = 1e9, kSoftestDb = -300;
  const auto json = parsed_body(body);
  if (!json.is_object() || !json.contains("source")) return fail(ErrorCode::usage, "what the page sent is no JSON object with a source");
  auto source = source_in(json["source"]);
  if (!source) return fail(ErrorCode::usage, "\"source\" wants to be an object with \"path\", \"id\", or \"check\" and \"part\"");
  const auto from = number_in(json, "from_s", 0, kLongestS), to = number_in(json, "to_s", 0, kLongestS), seconds = number_in(json, "seconds", 0, kLongestS),
             gain = number_in(json, "gain_db", kSoftestDb, 0);
  if (!from || !to || !seconds || !gain || *to < *from)
    return fail(ErrorCode::usage, "\"from_s\", \"to_s\" and \"seconds\" want to be times, and \"gain_db\" at most 0");
  return PlayedWish{std::move(*source), *from, *to, *seconds, *gain};
}

AskedRange range_of(std::string_view header, std::int64_t bytes) {
  constexpr std::string_view kUnit = "bytes=";
  static constexpr std::int64_t kBeyondAll = std::numeric_limits<std::int64_t>::max();
  if (header.size() < kUnit.size()) return {};
  for (std::size_t i = 0; i < kUnit.size(); ++i) {
    if (header[i] != kUnit[i] && !(kUnit[i] != '=' && header[i] == kUnit[i] - 'a' + 'A')) return {};
  }
  header.remove_prefix(kUnit.size());
  const auto dash = header.find('-');
  if (dash == header.npos) return {};
  const auto number = [](std::string_view text) -> std::optional<std::int64_t> {
    if (text.empty() || text.find_first_not_of("0123456789") != text.npos) return std::nullopt;
    text.remove_prefix(std::min(text.find_first_not_of('0'), text.size() - 1));
    const auto small = whole_number(text);
    return small ? *small : kBeyondAll;
  };
  const auto first = header.substr(0, dash), last = header.substr(dash + 1);
  const auto from = number(first), to = number(last);
  if ((!first.empty() && !from) || (!last.empty() && !to) || (!from && !to) || (from && to && *to < *from)) return {};
  if (!from) return *to == 0 ? AskedRange{RangeAnswer::none, {}} : AskedRange{RangeAnswer::part, {bytes - std::min(bytes, *to), bytes}};
  if (*from >= bytes) return {RangeAnswer::none, {}};
  return {RangeAnswer::part, {*from, to && *to < bytes ? *to + 1 : bytes}};
}

tl::expected<std::string, Answer> SoundApi::path_of(const SoundSource& source) const {
  if (source.part > 0) {
    const auto part = checks_.part_of(source.check, source.part);
    if (!part) return no_part();
    const auto now = part->mark.empty() ? std::nullopt : sounds_.mark_of(part->path);
    if (now && *now != part->mark) return tl::unexpected(refusal(409, "changed", "the file was written to since it was checked; check it again to hear what it is now"));
    return part->path;
  }
  const auto path = folder_.path_of(source.path);
  if (path) return *path;
  return tl::unexpected(refusal(path.error().code == ErrorCode::usage ? 400 : 403, to_string(path.error().code), path.error().text));
}

Answer SoundApi::get(const Target& target, std::string_view range) {
  const Asking asking(asking_);
  if (asking.too_many()) return refusal(503, "too_many", "too many sounds are asked for at once; wait a moment");
  const auto& parts = target.segments;
  const auto source = source_in(target);
  if (!source) return source.error();
  const auto path = path_of(*source);
  if (!path) return path.error();
  const auto what = parts.size() == 3 ? std::string_view(parts[2]) : std::string_view();
  if (parts.size() > 3 || (parts.size() == 3 && what != "audio.wav" && what != "outline")) return no_such_page();
  const auto sound = sounds_.get(*path, target.of("mark"));
  if (!sound) return sound.error();
  const auto head = (*sound)->head(false);
  if (!head) return head.error();
  remember(*source, *head);
  if (what == "audio.wav") return wave(*sound, range);
  return what == "outline" ? outline(target, **sound) : facts(target, **sound);
}

void SoundApi::remember(const SoundSource& source, const Sound::Head& head) {
  const std::lock_guard lock(opened_mutex_);
  auto& length_s = opened_[key_of(source)];
  length_s = std::max(length_s, static_cast<double>(head.frames) / head.format.sample_rate);
}

std::optional<double> SoundApi::length_of(const SoundSource& source) {
  const std::lock_guard lock(opened_mutex_);
  const auto found = opened_.find(key_of(source));
  return found == opened_.end() ? std::nullopt : std::optional(found->second);
}

Answer SoundApi::facts(const Target& target, const Sound& sound) const {
  const auto head = sound.head(!target.of("whole").empty());
  if (!head) return head.error();
  const auto& format = head->format;
  Json json;
  json["frames"] = head->frames;
  json["sample_rate"] = format.sample_rate;
  json["channels"] = format.channels;
  json["duration_s"] = static_cast<double>(head->frames) / format.sample_rate;
  json["layout"] = format.layout;
  json["speakers"] = Json::array();
  for (const auto speaker : format.speakers) json["speakers"].push_back(name_of(speaker));
  json["loudness"] = head->loudness_lufs ? Json(rounded(*head->loudness_lufs, 100)) : Json(nullptr);
  json["whole"] = head->whole;
  json["header_bytes"] = wave_head_bytes(format.channels, head->frames);
  json["mark"] = sound.mark();
  return {200, "application/json", written(json), {}, {}};
}

Answer SoundApi::wave(const std::shared_ptr<Sound>& sound, std::string_view range) const {
  const auto head = sound->head(false);
  if (!head) return head.error();
  const std::int64_t frame_bytes = head->format.channels * kSampleBytes;
  auto start = wave_head(head->format, head->frames);
  const auto head_bytes = static_cast<std::int64_t>(start.size());
  const auto all_bytes = head_bytes + head->frames * frame_bytes;
  Answer answer;
  answer.headers["Accept-Ranges"] = "bytes";
  ByteRange wanted{0, all_bytes};
  const auto asked = range_of(range, all_bytes);
  if (asked.answer == RangeAnswer::none) {
    auto refused = refusal(416, "range", "a range of bytes that are there is wanted");
    refused.headers["Content-Range"] = "bytes */" + std::to_string(all_bytes);
    return refused;
  }
  if (asked.answer == RangeAnswer::part) {
    wanted = asked.range;
    answer.status = 206;
    answer.headers["Content-Range"] = "bytes " + std::to_string(wanted.from) + "-" + std::to_string(wanted.to - 1) + "/" + std::to_string(all_bytes);
  }
  // How many frames have to be there for all bytes up to one.
  const auto frames_to = [head_bytes, frame_bytes](std::int64_t byte) { return byte <= head_bytes ? 0 : (byte - head_bytes + frame_bytes - 1) / frame_bytes; };
  // What fails is best told before the answer begins: of a usual range that is all of it.
  if (const auto there = sound->reach(frames_to(std::min(wanted.to, wanted.from + kWaitedForBytes))); !there) return there.error();
  auto opened = base::InputFile::open(sound->samples_path());
  if (!opened) return refusal(404, "gone", "the decoded sound is not there any more; open the file again");
  const auto file = std::make_shared<base::InputFile>(std::move(*opened));
  answer.type = "audio/wav";
  answer.streamed_bytes = wanted.to - wanted.from;
  answer.stream = [sound, file, start = std::move(start), wanted, frames_to, head_bytes](std::int64_t from, char* to, std::int64_t bytes) -> std::int64_t {
    from += wanted.from;
    bytes = std::min({bytes, kSentAtOnceBytes, wanted.to - from});
    if (from < head_bytes) {
      bytes = std::min(bytes, head_bytes - from);
      std::memcpy(to, start.data() + from, static_cast<std::size_t>(bytes));
      return bytes;
    }
    if (!sound->reach(frames_to(from + bytes))) return 0;
    return file->read_at(from - head_bytes, to, bytes);
  };
  return answer;
}

Answer SoundApi::outline(const Target& target, const Sound& sound) const {
  const auto from = whole_number(target.of("from")), to = whole_number(target.of("to")), columns = whole_number(target.of("columns"));
  if (!from || !to || !columns || *from >= *to || *columns < 1 || *columns > kMostColumns)
    return refusal(400, "request", "an outline wants from, to and columns: whole numbers, from below to, 1 to 2000 columns");
  const auto head = sound.head(false);
  if (!head) return head.error();
  const auto end = std::min(*to, head->frames);
  if (*from >= end) return refusal(400, "request", "the sound has " + std::to_string(head->frames) + " frames; ask for some of these");
  const auto outline = sound.outline(*from, end, static_cast<int>(std::min(*columns, end - *from)));
  if (!outline) return outline.error();
  Json json;
  json["from"] = *from;
  json["to"] = end;
  json["columns"] = Json::array();
  for (const auto& column : outline->columns) json["columns"].push_back({rounded(column.low, 1e4), rounded(column.high, 1e4), rounded(column.rms, 1e4)});
  json["looked_at"] = outline->looked_at;
  return {200, "application/json", written(json), {}, {}};
}

Answer SoundApi::played() const { return {200, "application/json", written(played_.tell()), {}, {}}; }

Answer SoundApi::add_played(std::string_view body) {
  const auto wish = read_played(body);
  if (!wish) return refusal(400, "request", wish.error().text);
  const auto path = path_of(wish->source);
  if (!path && path.error().status != 404 && path.error().status != 409) return path.error();
  const auto length_s = length_of(wish->source);
  if (!length_s) return refusal(404, "not_opened", "nothing of this name was opened here to be heard, so that nobody can have played it");
  if (wish->from_s > *length_s + kBeyondEndS)
    return refusal(400, "request", fmt::format("the sound ends at {:.1f} s, and nothing behind its end can have been played", *length_s));
  // Time counts whatever became of the file meanwhile.
  const auto sound = path ? sounds_.find(*path) : nullptr;
  const auto format = sound ? sound->format() : std::nullopt;
  // What is told of places behind the end was silence; a loop plays more than its stretch.
  const double beyond_s = std::max(0.0, wish->to_s - *length_s);
  const double seconds = wish->seconds <= wish->to_s - wish->from_s + kTwoClocksS ? std::max(0.0, wish->seconds - beyond_s) : wish->seconds;
  played_.add(seconds, sound ? sound->a_power(wish->from_s, wish->to_s) : std::nullopt, wish->gain_db, format ? format->channels : 0);
  return played();
}

void SoundApi::put_state(Json& state) const {
  put_hearing(state);
  state["cautions"] = played_.cautions();
  state["caution"] = safety::kBeforePlaying;
}

}  // namespace sendworthy::desk
