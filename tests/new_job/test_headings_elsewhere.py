"""Headings of exports and registers in languages beyond those of Europe's west: what a dictionary has for each word."""

from pathlib import Path

import pytest
from folders_made import drafted, job_of, lay, write

from pipeline.new_job import new_job
from pipeline.new_job.headings import CALLED, bare, is_known, rank
from pipeline.new_job.heights import height_said

_WORDS = ("name", "code", "time", "latitude", "longitude", "height", "solution", "base")
_DEGREES = {
    "Turkish": ("Nokta Adı", "Kod", "Tarih Saat", "Enlem", "Boylam", "Elipsoit Yüksekliği", "Çözüm Durumu", "Referans"),
    "Indonesian": ("Nama Titik", "Kode", "Waktu", "Lintang", "Bujur", "Tinggi Elipsoid", "Solusi", "Stasiun Base"),
    "Vietnamese": ("Tên điểm", "Mã", "Thời gian", "Vĩ độ", "Kinh độ", "Độ cao elipxoit", "Trạng thái", "Trạm gốc"),
    "Chinese": ("点名", "编码", "观测时间", "纬度", "经度", "大地高", "解状态", "基站"),
    "Chinese, traditional": ("點名", "編碼", "觀測時間", "緯度", "經度", "橢球高", "解狀態", "基準站"),
    "Japanese": ("観測点名", "コード", "観測日時", "緯度", "経度", "楕円体高", "解の種類", "基準局"),
    "Korean": ("점이름", "코드", "관측일시", "위도", "경도", "타원체고", "해종류", "기준국"),
    "Arabic": ("اسم النقطة", "الرمز", "الوقت", "خط العرض", "خط الطول", "الارتفاع", "نوع الحل", "المحطة القاعدة"),
    "Hebrew": ("שם נקודה", "קוד", "זמן", "קו רוחב", "קו אורך", "גובה", "פתרון", "תחנת בסיס"),
    "Hungarian": ("Pontnév", "Kód", "Időpont", "Szélesség", "Hosszúság", "Ellipszoidi magasság", "Megoldás", "Bázis"),
    "Romanian": ("Nume punct", "Cod", "Timp", "Latitudine", "Longitudine", "Cotă elipsoidală", "Soluție", "Bază"),
    "Croatian": ("Ime točke", "Šifra", "Datum i vrijeme", "Širina", "Duljina", "Elipsoidna visina", "Rješenje", "Baza"),
    "Greek": ("Όνομα σημείου", "Κωδικός", "Χρόνος", "Πλάτος", "Μήκος", "Υψόμετρο", "Λύση", "Βάση"),
    "Russian": ("Имя точки", "Код", "Дата и время", "Широта", "Долгота", "Геодезическая высота", "Тип решения", "База"),
    "Norwegian": ("Punkt", "Kode", "Tid", "Bredde", "Lengde", "Ellipsoidisk høyde", "Løsning", "Base"),
    "Ukrainian": ("Назва точки", "Код", "Дата і час", "Широта", "Довгота", "Висота", "Рішення", "База"),
}  # fmt: skip
_GRID = (
    ("Doğu", "Kuzey"), ("Timur", "Utara"), ("Đông", "Bắc"), ("东坐标", "北坐标"), ("동", "북"), ("الشرق", "الشمال"),
    ("מזרח", "צפון"), ("Kelet", "Észak"), ("Istok", "Sjever"), ("Восток", "Север"), ("Схід", "Північ"),
    ("Y sağa", "X yukarı"), ("Timur (X)", "Utara (Y)"),
)  # fmt: skip


@pytest.mark.parametrize("language", ["Turkish", "Vietnamese", "Korean", "Chinese", "Arabic", "Norwegian", "Ukrainian"])
def test_an_export_is_mapped(language: str, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    headings = dict(zip(_WORDS, _DEGREES[language], strict=True))
    write(tmp_path / "rover.csv", job, headings)
    assert drafted(new_job(tmp_path)).blocks[0].columns == headings


@pytest.mark.parametrize("language", _DEGREES)
def test_words_are_known(language: str) -> None:
    for word, heading in zip(_WORDS, _DEGREES[language], strict=True):
        assert height_said(heading) is not None if word == "height" else rank(word, heading) is not None, heading


@pytest.mark.parametrize(("east", "north"), _GRID)
def test_sides_of_a_grid_are_known(east: str, north: str) -> None:
    assert (rank("easting", east), rank("northing", north)) != (None, None)
    assert rank("northing", east) is None and rank("easting", north) is None


@pytest.mark.parametrize("heading", ["高程", "높이", "Độ cao", "Tinggi", "Висота", "الارتفاع", "גובה", "高さ"])
def test_heights_that_say_no_surface_stay_open(heading: str) -> None:
    assert height_said(heading) == ""


@pytest.mark.parametrize("heading", ["X坐标", "Y座標", "Tọa độ X", "좌표 Y", "Y koordinatı"])
def test_a_letter_beside_the_word_for_a_coordinate_leaves_the_side_open(heading: str) -> None:
    assert is_known(heading)


def test_headings_are_kept_as_they_are_compared() -> None:
    assert all(bare(heading) == heading for headings in CALLED.values() for heading in headings)


def test_dates_with_the_signs_of_year_month_and_day_are_read(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    headings = dict(zip(_WORDS, _DEGREES["Chinese"], strict=True))
    write(tmp_path / "rover.csv", job, headings, time="%Y年%m月%d日 %H:%M:%S")
    started = new_job(tmp_path)
    assert "time_format" not in {one.question.key for one in started.asked}
    assert len(drafted(started).sessions) == 2
