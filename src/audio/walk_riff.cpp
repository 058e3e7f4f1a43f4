// RIFF, RIFX, RF64 (EBU Tech 3306) and BW64 (ITU-R BS.2088).
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "audio/tags.h"
#include "audio/walk.h"
#include "audio/wave_format.h"
#include "audio/wave_text.h"

namespace sendworthy::audio {
namespace {

// Chunks that are registered, or that a workstation is known to write; from memory. Others are told, and are no fault.
constexpr std::string_view kKnownChunks[] = {
    "fmt ", "data", "fact", "ds64", "bext", "iXML", "axml", "bxml", "sxml", "chna", "dbmd", "LIST", "cue ", "plst", "smpl", "inst",
    "acid", "strc", "PEAK", "DISP", "CSET", "wavl", "slnt", "note", "labl", "cart", "levl", "link", "qlty", "mext", "umid", "UMID",
    "minf", "elm1", "regn", "ovwf", "DGDA", "LGWV", "ResU", "SMED", "MARK", "r64m", "tlst", "AFAn", "muma", "afsp", "aXML", "_PMX",
    "id3 ", "ID3 ", "Fake", "SNDM", "bwmk", "trkn", "Trkn", "TRKN", "hint", "meta", "cova",
};
constexpr std::string_view kPaddingChunks[] = {"JUNK", "junk", "PAD ", "pad ", "FLLR", "fllr", "FREE", "free", "filr"};

bool among(std::span<const std::string_view> list, std::string_view id) {
  return std::find(list.begin(), list.end(), id) != list.end();
}

constexpr std::uint32_t kElsewhere = 0xffffffff;  // "see ds64", or "not known when this was written"

struct Sizes64 {
  std::int64_t riff = 0, data = 0, samples = 0;
  std::map<std::string, std::int64_t> table;
};

class RiffWalk {
 public:
  explicit RiffWalk(Walk& walk) : walk_(walk), window_(walk.window), size_(walk.size()) {}

  Result<void> run() {
    const auto* head = window_.at(0, 12);
    form_ = text_at(head, 4);
    big_endian_ = form_ == "RIFX";
    wide_ = form_ == "RF64" || form_ == "BW64";
    walk_.result.facts.container = form_ == "RIFF" ? "WAV" : form_;
    riff_size32_ = u32(head + 4);
    if (auto ok = chunks(); !ok) return ok;
    if (!wave_) return walk_.refuse(ErrorCode::unrecognised, "it has no format chunk; export it again");
    if (!have_data_ && walk_.result.facts.chunks_total >= kMaxChunksWalked)
      return walk_.refuse(ErrorCode::no_audio, fmt::format("its first {} chunks hold no audio, and more are not read; export it again",
                                                           kMaxChunksWalked));
    if (!have_data_ && end_of_chunks_ + 8 <= size_) {
      const auto* p = window_.at(end_of_chunks_, 4);
      return walk_.refuse(ErrorCode::no_audio,
                          fmt::format("\"{}\" at byte {} is no chunk id, nothing can be read beyond it, and no data chunk stands before it; "
                                      "copy or export it again",
                                      p == nullptr ? "" : printable(text_at(p, 4)), grouped(end_of_chunks_)));
    }
    if (!have_data_)
      return walk_.refuse(ErrorCode::no_audio, "it has no data chunk, so there is no audio in it; export it again");
    if (auto ok = data_found(); !ok) return ok;
    judge_riff_size();
    name_cues();
    return {};
  }

 private:
  std::uint32_t u32(const std::uint8_t* p) const { return big_endian_ ? be32(p) : le32(p); }

  // Whether the chunk list can go on at an offset: the end of the file, or an id whose chunk fits.
  bool legal_at(std::int64_t at) {
    if (at >= size_) return at <= size_ + 1;
    const auto* p = window_.at(at, 8);
    if (p == nullptr || !is_chunk_id(p)) return false;
    const auto size = u32(p + 4);
    return (wide_ && size == kElsewhere) || size <= size_ - at - 8;
  }

  // Before the samples, a chunk with an id that is no text is stepped over when a chunk with a known one follows it.
  bool leads_on(std::int64_t at, std::uint32_t size) {
    if (have_data_) return false;
    const auto next = at + 8 + size + (size & 1);
    const auto* p = next + 8 <= size_ ? window_.at(next, 8) : nullptr;
    return p != nullptr && among(kKnownChunks, text_at(p, 4));
  }

  Result<void> chunks() {
    std::int64_t at = 12;
    for (std::int64_t count = 0; at < size_; ++count) {
      if (count == kMaxChunksWalked) {
        walk_.contradict(at, fmt::format("more than {} chunks; the rest was not walked", kMaxChunksWalked));
        break;
      }
      const auto* p = window_.at(at, 8);
      if (p == nullptr || (!is_chunk_id(p) && !leads_on(at, u32(p + 4)))) break;
      const std::string id(text_at(p, 4));
      const auto size32 = u32(p + 4);
      // What lies behind the end that the header names is a chunk only if it fits; else it was hung on by somebody.
      if (at >= declared_end() && !legal_at(at)) break;
      const auto declared = declared_size(id, size32);
      const auto body = at + 8;
      const auto room = size_ - body;
      walk_.chunk(id);
      if (wide_ && count == 0 && id != "ds64")
        walk_.contradict(at, fmt::format("the first chunk of {} must be ds64, it is {}", form_, printable(id)));
      auto length = std::min(declared, room);
      if (among(kPaddingChunks, id) ? length > kMostPaddingBytes : !among(kKnownChunks, id)) walk_.unusual(id, length);
      if (id == "data") {
        length = data_chunk(at, size32, declared);
      } else {
        if (declared > room) declared_to_end_ = true;
        if (declared > room)
          walk_.contradict(
              at, fmt::format("chunk {} says {} bytes, {} are there", printable(id), grouped(declared), grouped(room)));
        if (auto ok = other_chunk(id, at, body, length); !ok) return ok;
      }
      at = after(id, at, body + length, length);
    }
    end_of_chunks_ = at;
    return {};
  }

  // Where the header says the file ends; never, when it does not say.
  std::int64_t declared_end() const {
    if (wide_ && riff_size32_ == kElsewhere) return sizes_ ? sizes_->riff + 8 : size_;
    return riff_size32_ == 0 || riff_size32_ == kElsewhere ? size_ : riff_size32_ + std::int64_t{8};
  }

  std::int64_t declared_size(const std::string& id, std::uint32_t size32) const {
    if (!wide_ || size32 != kElsewhere || !sizes_) return size32;
    if (id == "data") return sizes_->data;
    const auto found = sizes_->table.find(id);
    return found == sizes_->table.end() ? size32 : found->second;
  }

  // Where the next chunk begins. An odd chunk owes a pad byte; some writers forget it, some do not zero it.
  std::int64_t after(const std::string& id, std::int64_t head, std::int64_t end, std::int64_t length) {
    if ((length & 1) == 0) return end;
    if (end >= size_) {
      if (declared_to_end_) return end;  // cut off or streamed: said already
      walk_.contradict(head,
                       fmt::format("chunk {} has an odd size and no pad byte at the end of the file", printable(id)), true);
      return end;
    }
    const auto* pad = window_.at(end, 1);
    const bool zero = pad != nullptr && *pad == 0;
    if (legal_at(end + 1)) {
      if (!zero) walk_.contradict(end, fmt::format("the pad byte after chunk {} is not 0", printable(id)), true);
      return end + 1;
    }
    if (legal_at(end)) {
      walk_.contradict(head, fmt::format("chunk {} has an odd size and is not followed by a pad byte", printable(id)), true);
      return end;
    }
    return zero ? end + 1 : end;
  }

  // Returns the length to take. Sets have_data_, or notes a second one.
  std::int64_t data_chunk(std::int64_t at, std::uint32_t size32, std::int64_t declared) {
    const auto body = at + 8;
    const auto room = size_ - body;
    if (have_data_) {
      walk_.contradict(
          at, fmt::format("a second data chunk of {} bytes; most readers ignore or refuse it", grouped(declared)));
      if (declared > room) declared_to_end_ = true;
      return std::min(declared, room);
    }
    have_data_ = true;
    data_before_format_ = !wave_;
    if (data_before_format_) walk_.contradict(at, "the data chunk stands before the format chunk");
    data_head_ = at;
    auto& data = walk_.result.data;
    data.offset = body;
    // 7FFFF000h and its neighbours are what some programs write into a pipe, where they cannot come back.
    const bool placeholder = declared > room && declared >= 0x7fff0000 && declared <= 0x7fffffff;
    const bool unknown = placeholder || (size32 == kElsewhere && (!wide_ || !sizes_));
    const bool zero_but_full = declared == 0 && room >= 8 && !legal_at(body);
    if (unknown || zero_but_full) {
      walk_.contradict(at + 4,
                       fmt::format("the data size is {}: written by a program that could not go back to fill it "
                                   "in; {} bytes follow",
                                   zero_but_full ? "0" : fmt::format("0x{:X}", size32), grouped(room)),
                       true);
      declared_to_end_ = true;
      data.bytes = room;
      return room;
    }
    declared_bytes_ = declared;
    data.bytes = std::min(declared, room);
    if (declared > room) declared_to_end_ = true;
    return data.bytes;
  }

  Result<void> other_chunk(const std::string& id, std::int64_t at, std::int64_t body, std::int64_t length) {
    if (id == "fmt ") {
      if (wave_) {
        walk_.contradict(at, "a second format chunk; readers disagree about which one counts");
        return {};
      }
      auto wave = read_wave_format(walk_, body, length, big_endian_);
      if (!wave) return tl::unexpected(wave.error());
      wave_ = *wave;
    } else if (id == "ds64" && wide_) {
      read_ds64(at, body, length);
    } else if (id == "fact" && length >= 4) {
      if (const auto* p = window_.at(body, 4)) fact_ = u32(p), fact_at_ = body;
    } else if (id == "bext") {
      if (!walk_.result.facts.bext_first) walk_.result.facts.bext_first = !have_data_;
      read_bext(walk_, body, length, big_endian_);
    } else if (id == "smpl") {
      read_sampler(body, length);
    } else if (id == "cue ") {
      read_cues(body, length);
    } else if (id == "LIST") {
      read_list(walk_, body, length, big_endian_);
    } else if (id == "iXML" || id == "axml" || id == "_PMX") {
      read_xml(walk_, id == "_PMX" ? "XMP" : id, body, length);
    } else if (id == "id3 " || id == "ID3 ") {
      read_id3v2(walk_, body, body + length, "ID3v2");
    }
    return {};
  }

  // Nine words, then loops of six: the third and fourth are first and last frame.
  void read_sampler(std::int64_t body, std::int64_t length) {
    constexpr std::int64_t kHead = 36, kLoop = 24, kMostLoops = 64;
    auto& loops = walk_.result.facts.loops;
    const auto* head = length < kHead || !loops.empty() ? nullptr : window_.at(body, kHead);
    if (head == nullptr) return;
    const auto count = std::min<std::int64_t>({u32(head + 28), (length - kHead) / kLoop, kMostLoops});
    for (std::int64_t i = 0; i < count; ++i) {
      const auto* loop = window_.at(body + kHead + i * kLoop, kLoop);
      if (loop == nullptr) return;
      loops.push_back({u32(loop + 8), u32(loop + 12)});
    }
  }

  // A count, then six words each: id, place in the play order, chunk that is meant, two offsets for wave lists, frame in the data. Some
  // writers leave the frame at 0 and fill the place alone.
  void read_cues(std::int64_t body, std::int64_t length) {
    constexpr std::int64_t kHead = 4, kPoint = 24;
    const auto* head = length < kHead || !cues_.empty() ? nullptr : window_.at(body, kHead);
    if (head == nullptr) return;
    const auto count = std::min<std::int64_t>({u32(head), (length - kHead) / kPoint, kMaxMarkers});
    for (std::int64_t i = 0; i < count; ++i) {
      const auto* point = window_.at(body + kHead + i * kPoint, kPoint);
      if (point == nullptr) return;
      const auto frame = u32(point + 20);
      cues_.emplace_back(u32(point), frame != 0 ? frame : u32(point + 4));
    }
  }

  // Labels stand before the points or behind them.
  void name_cues() {
    for (const auto& [id, frame] : cues_) {
      const auto label = walk_.labels.find(id);
      walk_.result.facts.markers.push_back({frame, label == walk_.labels.end() ? "" : label->second});
    }
  }

  void read_ds64(std::int64_t at, std::int64_t body, std::int64_t length) {
    if (sizes_) return walk_.contradict(at, "a second ds64 chunk");
    if (at != 12) walk_.contradict(at, "the ds64 chunk is not the first one");
    if (length < 28) {
      walk_.contradict(at, fmt::format("the ds64 chunk has {} bytes, at least 28 are needed", length));
      if (length < 16) return;
    }
    Sizes64 sizes;
    const auto* p = window_.at(body, std::min<std::int64_t>(length, 28));
    if (p == nullptr) return;
    sizes.riff = size_from(le64(p));
    sizes.data = size_from(le64(p + 8));
    if (length >= 28) {
      sizes.samples = size_from(le64(p + 16));
      const auto entries = le32(p + 24);
      if (entries > (length - 28) / 12)
        walk_.contradict(body + 24, fmt::format("the ds64 table says {} entries, there is room for {}", entries,
                                                (length - 28) / 12));
      const auto readable = std::min<std::int64_t>({entries, (length - 28) / 12, 1024});
      for (std::int64_t i = 0; i < readable; ++i) {
        if (const auto* entry = window_.at(body + 28 + i * 12, 12))
          sizes.table.emplace(std::string(text_at(entry, 4)), size_from(le64(entry + 4)));
      }
    }
    ds64_at_ = body;
    sizes_ = std::move(sizes);
  }

  Result<void> data_found() {
    auto& facts = walk_.result.facts;
    auto& data = walk_.result.data;
    if (wide_ && !sizes_) walk_.contradict(12, fmt::format("{} without a ds64 chunk", form_));
    drop_counted_pad();
    if (data.codec == Codec::mpeg) {
      if (auto ok = walk_mpeg(walk_, data.offset, data.offset + data.bytes, true); !ok) return ok;
    } else {
      const bool plain = data.codec == Codec::pcm || data.codec == Codec::ieee_float;
      if (declared_bytes_) facts.declared_frames = frames_in(data, *declared_bytes_);
      std::optional<std::int64_t> fact;
      // Plain PCM does not need the fact chunk, and its value is then often something else.
      if (fact_ && *fact_ != 0 && *fact_ != kElsewhere && data.codec != Codec::pcm) fact = *fact_;
      if (auto ok = finish_wave(walk_, *wave_, plain ? std::nullopt : fact); !ok) return ok;
      if (plain && fact && declared_bytes_ && *fact != *facts.declared_frames)
        walk_.contradict(fact_at_, fmt::format("the fact chunk says {} frames, the data chunk {}", grouped(*fact),
                                               grouped(*facts.declared_frames)));
      if (!plain && fact && !declared_to_end_ &&
          (*fact > *facts.walked_frames || *fact <= *facts.walked_frames - 2 * data.packet_frames))
        walk_.contradict(fact_at_, fmt::format("the fact chunk says {} frames, the data hold {}", grouped(*fact),
                                               grouped(*facts.walked_frames)));
    }
    judge_data_size();
    if (end_of_chunks_ < size_)
      judge_tail(walk_, end_of_chunks_, data_head_ >= 0 && end_of_chunks_ - (data.offset + data.bytes) <= 2);
    return {};
  }

  // FFmpeg counts the pad byte of an odd data chunk into the 64-bit size; its sample count is right.
  void drop_counted_pad() {
    auto& data = walk_.result.data;
    if (form_ != "RF64" || !sizes_ || !declared_bytes_ || data.frame_bytes <= 0) return;
    if (sizes_->samples <= 0 || sizes_->samples > *declared_bytes_ / data.frame_bytes) return;
    const auto counted = sizes_->samples * data.frame_bytes;
    if ((counted & 1) == 0 || counted + 1 != *declared_bytes_) return;
    declared_bytes_ = counted;
    data.bytes = std::min(data.bytes, counted);
  }

  void judge_data_size() {
    const auto& data = walk_.result.data;
    const auto room = size_ - data.offset;
    if (declared_bytes_ && *declared_bytes_ > room) {
      if (data.frame_bytes > 0)
        walk_.contradict(data_head_, fmt::format("the data chunk says {} frames ({} bytes), {} ({} bytes) are there",
                                                 grouped(frames_in(data, *declared_bytes_)), grouped(*declared_bytes_),
                                                 grouped(frames_in(data, room)), grouped(room)));
      else
        walk_.contradict(data_head_, fmt::format("the data chunk says {} bytes, {} are there",
                                                 grouped(*declared_bytes_), grouped(room)));
    } else if (declared_bytes_ && data.frame_bytes > 0 && *declared_bytes_ % data.frame_bytes != 0) {
      walk_.contradict(data_head_ + 4, fmt::format("the data size of {} bytes is no whole number of frames of {} bytes",
                                                   grouped(*declared_bytes_), data.frame_bytes));
    }
    if (!wide_ || !sizes_ || form_ != "RF64" || ds64_at_ < 0) return;
    const auto frames = declared_bytes_ ? frames_in(data, *declared_bytes_) : 0;
    if (sizes_->samples != 0 && data.frame_bytes > 0 && declared_bytes_ && sizes_->samples != frames)
      walk_.contradict(ds64_at_ + 16, fmt::format("ds64 says {} frames, its data size holds {}",
                                                  grouped(sizes_->samples), grouped(frames)));
  }

  void judge_riff_size() {
    if (!wide_ && size_ >= std::int64_t{1} << 32)
      walk_.contradict(
          4, fmt::format("the file has {} bytes, a 32-bit {} header reaches 4 294 967 295; RF64 or BW64 is needed",
                         grouped(size_), form_));
    auto declared = static_cast<std::int64_t>(riff_size32_);
    auto offset = std::int64_t{4};
    if (wide_ && riff_size32_ == kElsewhere) {
      if (!sizes_) return;
      declared = sizes_->riff;
      offset = ds64_at_;
    } else if (riff_size32_ == kElsewhere || riff_size32_ == 0) {
      return walk_.contradict(
          4, fmt::format("the {} size is {}: written by a program that could not go back to fill it in", form_,
                         riff_size32_ == 0 ? "0" : "0xFFFFFFFF"),
          true);
    }
    const auto end = declared + 8;
    const auto near = [end](std::int64_t other) { return end - other <= 1 && other - end <= 1; };
    // A header that accounts for its chunks and not for what was added behind them does not contradict itself.
    if (near(size_) || near(end_of_chunks_)) return;
    // A wrong outer size of 32 bits is common and nothing goes by it. The one of 64 bits is there because readers need it; only
    // one that was never filled in is as harmless.
    const bool slip = !wide_ || riff_size32_ != kElsewhere || declared == 0;
    walk_.contradict(
        offset, fmt::format("the {} size says the file has {} bytes, it has {}", form_, grouped(end), grouped(size_)), slip);
  }

  Walk& walk_;
  Window& window_;
  const std::int64_t size_;
  std::string form_;
  bool big_endian_ = false, wide_ = false;
  std::uint32_t riff_size32_ = 0;
  std::optional<WaveFormat> wave_;
  std::optional<Sizes64> sizes_;
  std::int64_t ds64_at_ = -1;
  bool have_data_ = false, data_before_format_ = false, declared_to_end_ = false;
  std::int64_t data_head_ = -1;
  std::optional<std::int64_t> declared_bytes_;
  std::optional<std::int64_t> fact_;
  std::int64_t fact_at_ = -1;
  std::int64_t end_of_chunks_ = 0;
  std::vector<std::pair<std::uint32_t, std::int64_t>> cues_;  ///< id and frame of each point
};

}  // namespace

Result<void> walk_riff(Walk& walk) { return RiffWalk(walk).run(); }

}  // namespace sendworthy::audio
